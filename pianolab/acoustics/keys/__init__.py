"""Which key each note is: beginnings, evidence, one path over all."""
