"""The hub: holds the smoker a set lift above the meat, calls each chub, keeps the record."""

__version__ = "0.1.0"
