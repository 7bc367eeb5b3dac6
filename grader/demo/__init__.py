"""A season in the box: an invented claim with three trips, all of it drawn and made up, to try the tool on."""
