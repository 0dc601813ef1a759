package keeper

import (
	"fmt"
	"strings"

	"flaskside/logbook/words"
)

// unit is a service of the user for systemd (systemd.service(5), systemd.exec(5)). What would
// keep the program from its own work is left out: PrivateTmp would hide the socket of a
// logbook with a long name from its screens, ProtectSystem=strict and ProtectHome the
// folders of the logbook and of its backups.
const unit = `# As a service of this user:
#   flaskside keep --unit > ~/.config/systemd/user/flaskside.service
#   systemctl --user enable --now flaskside
#   loginctl enable-linger    (it starts with the computer, and stays when you log out)
[Unit]
Description=flaskside: keeps the bench running without a screen

[Service]
ExecStart=%s
Restart=on-failure
RestartSec=2
TimeoutStopSec=90
UMask=0077
NoNewPrivileges=yes
ProtectSystem=full
ProtectControlGroups=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
LockPersonality=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
RestrictNamespaces=yes
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6
SystemCallArchitectures=native
SystemCallFilter=@system-service
TasksMax=256

[Install]
WantedBy=default.target
`

// Unit is a service for systemd that runs a command. Errors: a word that a service file cannot
// hold.
func Unit(command []string) (string, error) {
	quoted := make([]string, len(command))
	for i, a := range command {
		var err error
		if quoted[i], err = unitWord(a); err != nil {
			return "", err
		}
	}
	return fmt.Sprintf(unit, strings.Join(quoted, " ")), nil
}

// unitWord quotes a word of a command line as systemd reads it (systemd.service(5), command
// lines; systemd.unit(5), specifiers).
func unitWord(s string) (string, error) {
	if words.Clean(s) != s {
		return "", fmt.Errorf("%q has characters that a service file cannot hold", s)
	}
	s = strings.NewReplacer(`\`, `\\`, `"`, `\"`, "%", "%%", "$", "$$").Replace(s)
	return `"` + s + `"`, nil
}
