"""Room 1, what should be there: points, wire list, parts, nets, copper, connector swap."""
