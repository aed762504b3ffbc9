"""Training of the pair lift: flat skeletons through time → the pair in space, and its position."""
