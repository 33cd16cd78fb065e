"""What is judged, one file for each thing: part(result, earlier) -> Additions."""
