"""Names, folders, and files that are whole or not there."""
