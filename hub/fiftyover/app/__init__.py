"""The composition: everything else is handed its parts here."""
