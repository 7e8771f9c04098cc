"""Files of readings: what a table of text says of temperature and humidity through time."""
