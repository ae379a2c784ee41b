"""What the strings of a note say: partials, modes, pitch, unison."""
