"""What may be said of a key beside its neighbours."""
