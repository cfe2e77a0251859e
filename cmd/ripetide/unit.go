package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
)

type unitCmd struct {
	User string `default:"ripetide" help:"The user that the service runs as."`
}

// unit is a service of systemd that may do little. PrivateUsers is left out, for
// the socket tells PostgreSQL the user. The socket lies in the data folder, so that
// commands reach it although /tmp is the service's own. MemoryDenyWriteExecute
// works because the private PostgreSQL compiles nothing (jit = off).
const unit = `# A service of systemd. Write it to /etc/systemd/system/ripetide.service, then:
#   useradd --system --home-dir /var/lib/ripetide %[2]s
#   systemctl daemon-reload && systemctl enable --now ripetide
#   journalctl -u ripetide
# More settings go into /etc/ripetide.env, a line each, such as
#   RIPETIDE_PUBLIC_URL=https://ripetide.farm.example
# Backups on another disk (RIPETIDE_BACKUPS) need ReadWritePaths= of their folder below.
# Commands are run as its user, with its settings:
#   systemd-run --pipe --wait --quiet --uid=%[2]s -p EnvironmentFile=-/etc/ripetide.env --setenv=RIPETIDE_DATA=/var/lib/ripetide %[1]s doctor
[Unit]
Description=ripetide, harvest forecasts
After=network-online.target
Wants=network-online.target

[Service]
Type=exec
ExecStart=%[1]s serve
User=%[2]s
StateDirectory=ripetide
StateDirectoryMode=0750
Environment=RIPETIDE_DATA=/var/lib/ripetide
Environment=RIPETIDE_LOG=json
EnvironmentFile=-/etc/ripetide.env
Restart=on-failure
RestartSec=2
TimeoutStopSec=30
KillMode=mixed
UMask=0077
LimitNOFILE=65536

NoNewPrivileges=yes
CapabilityBoundingSet=
AmbientCapabilities=
ProtectSystem=strict
ProtectHome=yes
PrivateTmp=yes
PrivateDevices=yes
ProtectClock=yes
ProtectHostname=yes
ProtectKernelLogs=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
ProtectControlGroups=yes
ProtectProc=invisible
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
LockPersonality=yes
MemoryDenyWriteExecute=yes
SystemCallArchitectures=native
SystemCallFilter=@system-service

[Install]
WantedBy=multi-user.target
`

// Run prints the unit for this program.
func (x unitCmd) Run(_ context.Context, w *world) error {
	self, err := os.Executable()
	if err == nil {
		self, err = filepath.EvalSymlinks(self)
	}
	if err != nil {
		return fmt.Errorf("find this program: %w", err)
	}
	_, err = fmt.Fprintf(w.Stdout, unit, self, x.User)
	return err
}
