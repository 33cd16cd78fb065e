"""One command a file: what it runs, says of itself, shows as an example and takes."""
