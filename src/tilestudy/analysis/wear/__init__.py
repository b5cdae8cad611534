"""Durability as what it is: grades in order, strokes until metal shows, and scorers who agree or not."""
