"""Ragleaf: a cryptographic key onto paper, and back."""

__version__ = "0.1.0"
