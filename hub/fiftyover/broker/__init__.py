"""The broker between kit and hub: our one client of it, the child that runs it, accounts and certificates."""
