"""Pages for people to read: sections made from values, and one file to hand on."""
