"""What was changed and broken in, what it cost and which policy would cost least out."""
