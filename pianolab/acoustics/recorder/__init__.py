"""What a player, a room's noise or a recorder does, and what that forbids."""
