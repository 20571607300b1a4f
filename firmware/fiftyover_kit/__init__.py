"""The kit: the firmware that runs on the board, and the contract both ends share."""
