"""Training of the pair lift: two flat skeletons through time → the pair in space, and what it is."""
