"""Turning an adjustable sensor on its mount: plan, words, way."""
