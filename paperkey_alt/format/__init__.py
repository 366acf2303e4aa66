"""What docs/format.md specifies, one module a section: from a payload to lines, and back."""
