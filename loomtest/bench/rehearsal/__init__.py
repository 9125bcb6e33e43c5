"""A meter, a hand and a pin-scanner that are not there."""
