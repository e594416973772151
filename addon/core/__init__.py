"""What all features of the add-on share."""
