"""From a sheet by hand: what has been typed, and the screens that it is typed on."""
