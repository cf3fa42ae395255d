"""What the desk remembers of its user from one day to the next: preferences, recent files, where its panels are."""
