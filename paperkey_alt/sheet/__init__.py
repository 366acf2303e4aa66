"""Onto paper: lines as sheets and as text."""
