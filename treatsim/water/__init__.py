"""What flows: analyses, properties, osmotic pressure, chemistry, streams."""
