"""The systemd unit under which the hub runs: no rights but its own folder, the network and its child, the broker."""

from __future__ import annotations

from pathlib import Path

NAME = "fiftyover.service"

HARDENED = """\
NoNewPrivileges=yes
CapabilityBoundingSet=
AmbientCapabilities=
ProtectSystem=strict
ProtectHome={home}
ReadWritePaths={folder}
PrivateTmp=yes
PrivateDevices=yes
PrivateUsers=yes
PrivateMounts=yes
ProtectClock=yes
ProtectHostname=yes
ProtectKernelLogs=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
ProtectControlGroups=yes
ProtectProc=invisible
ProcSubset=pid
RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
LockPersonality=yes
RemoveIPC=yes
KeyringMode=private
DevicePolicy=closed
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallFilter=~@privileged @resources
SystemCallErrorNumber=EPERM
UMask=0077
"""


def unit(folder: Path, python: str, user: str) -> str:
    """Give the unit's text: the hub of the settings in `folder`, run by `user` with the interpreter `python`."""
    at_home = folder.parts[:2] == ("/", "home") or Path(python).parts[:2] == ("/", "home")
    guards = HARDENED.format(folder=folder, home="read-only" if at_home else "yes")
    return f"""\
[Unit]
Description=fiftyover: holds the smoker above the meat and calls each chub
After=network-online.target
Wants=network-online.target
StartLimitIntervalSec=300
StartLimitBurst=30

[Service]
Type=exec
User={user}
WorkingDirectory={folder}
ExecStart="{python}" -m fiftyover serve --settings "{folder}/hub.toml"
Restart=always
RestartSec=2
TimeoutStopSec=15
KillMode=mixed
MemoryMax=512M
TasksMax=64
{guards}
[Install]
WantedBy=multi-user.target
"""
