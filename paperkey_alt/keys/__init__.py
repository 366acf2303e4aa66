"""Key files: one module a format, from the file's bytes to what is printed and back."""
