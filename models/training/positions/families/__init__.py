"""Leave families of poses out: how right the position model is on poses unlike all it learned."""
