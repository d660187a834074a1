"""Studies of precision and comparison: what is asked, what it gives, the records kept."""
