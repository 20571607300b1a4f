"""Grafana dashboards as code. `queries` says what is asked, `panels` how it looks, `boards` makes three boards."""
