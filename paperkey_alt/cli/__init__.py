"""One module a command; each has a `command` that click runs."""
