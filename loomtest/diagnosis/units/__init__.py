"""What many looms of one kind say together: how many are right, and what is usual of each circuit."""
