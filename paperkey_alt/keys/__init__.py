"""Key files: one module a format, each with extract and rebuild."""
