"""Thin edges: how words come in and go out."""
