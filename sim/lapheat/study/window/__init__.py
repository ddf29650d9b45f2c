"""What works over two keys or more: map, boundaries, pick."""
