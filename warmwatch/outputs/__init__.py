"""What people and programs see and hear of the watch."""
