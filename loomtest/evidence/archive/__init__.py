"""What is kept: bags, ledger, index, history."""
