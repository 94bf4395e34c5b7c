"""Ball and club: numbers and arrays in, numbers and arrays out."""
