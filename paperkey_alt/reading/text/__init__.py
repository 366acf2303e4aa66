"""Lines in text: as people type them, and as programs leave them."""
