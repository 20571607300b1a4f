"""Target and controller of the chamber. Pure: temperatures and times in, duty out."""
