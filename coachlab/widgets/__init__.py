"""Panels for notebooks: they set arguments, call public functions and show what comes back."""
