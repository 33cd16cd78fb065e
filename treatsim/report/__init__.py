"""Tables, plots and pages."""
