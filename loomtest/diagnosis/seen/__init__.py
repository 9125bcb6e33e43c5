"""What the readings say by themselves: joined, apart, how sure, what was covered."""
