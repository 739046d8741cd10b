"""What a case looks like on paper."""
