"""Parts known by their shape: found again in another nest, drawing or revision."""
