"""What is read at a glance: the picture, the glass, the lamps, the terminal."""
