"""Which physical faults explain what is joined and what is apart."""
