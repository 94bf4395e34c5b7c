"""A file from anywhere becomes `Shots`: columns, read, clean, log."""
