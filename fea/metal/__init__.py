"""What stress a layer's strain brings."""
