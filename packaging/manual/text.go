package manual

const description = `Pinfold reads the vehicle's local pose over MQTT, judges every sample against the zones of a site file and its limits on height, speed and tilt, and grants a permit without which the vehicle halts itself. It withdraws the permit, and says stop or land, while there is still room to come to rest inside. What was heard and decided is kept in a trail that shows later edits and can be judged again.`

// part is a section of items.
type part struct {
	title string
	items [][2]string
}

// parts are the sections the command line's definition does not have.
var parts = []part{
	{"SIGNALS", [][2]string{
		{"SIGTERM, SIGINT", "run: stop the vehicles, wait for their word, seal the trail, end with 0. Other commands: end."},
		{"SIGHUP", "run: read the site file again. What is tighter is taken, and a new alignment while nothing is started; what is looser is refused, the old site staying in force, and the log, the state and the trail say so. To loosen, stop and start the guard."},
		{"SIGKILL", "run: the permit runs out, by the vehicle's own clock, and the broker publishes stop as the will. The trail holds to within its last write."},
	}},
	{"ENVIRONMENT", [][2]string{
		{"STATE_DIRECTORY", "Set by systemd: a relative dir in [trail] stands below it."},
		{"NOTIFY_SOCKET, WATCHDOG_USEC", "Set by systemd: where run tells that it is ready and that every vehicle's loop has judged, and how often it must."},
		{"JOURNAL_STREAM", "Set by systemd: where it names the standard error, run begins each line with its priority, <3> to <6> as in sd-daemon(3)."},
		{"GOMEMLIMIT", "How much memory the garbage collector tries to keep below; the unit sets it."},
	}},
	{"FILES", [][2]string{
		{"/etc/pinfold/site.toml", "The site file of the service. The package leaves an example that does not start before local_rules are stated; an upgrade leaves it alone, a purge removes it."},
		{"/var/lib/pinfold", "Trails of the service's sessions and the key that seals them (trail.key). A purge keeps it while there are any: they are evidence."},
		{"/usr/lib/systemd/system/pinfold.service", "The unit. Not started by the package."},
		{"/usr/lib/systemd/system/pinfold-relay.service", "The unit of relay, with a vehicle and a line to be filled in by systemctl edit."},
		{"/usr/share/doc/pinfold/site.txt.gz", "Every key of a site file."},
		{"/usr/share/doc/pinfold/examples", "A broker's configuration; alarm rules, a dashboard; a drop-in for real-time priority."},
	}},
	{"EXAMPLES", [][2]string{
		{"pinfold demo", "The whole job on two simulated vehicles."},
		{"pinfold check --site site.toml", "Every mistake in a site file at once."},
		{"journalctl -u pinfold -p warning", "Why the guard of the service stopped something."},
		{"pinfold ask start --site site.toml --by \"$USER\"", "Permit movement, the guard waiting until then."},
	}},
	{"SEE ALSO", [][2]string{
		{"mosquitto(8), systemd(1), journalctl(1)", "The broker, and what runs the service."},
	}},
}
