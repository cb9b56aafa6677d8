"""A simulated plant: a pure model of small machining centres, its truth, and an OPC UA server that shows it."""
