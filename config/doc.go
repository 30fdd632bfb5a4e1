// Package config turns a site file into a Site: immutable, complete and valid
// by construction.
//
// It is strict. A key it does not know, a name given twice, a number that is
// not finite (TOML has nan and inf), a unit left out, a ring that crosses
// itself, a pen the vehicle does not fit: each is a Problem with file, line,
// value and next step, and all of them are reported at once. Where there is
// one, there is no Site. `check` and `run` use this very loader.
//
// Conventions of the site file: lengths in metres, speeds in m/s, angles in
// degrees, durations as strings with a unit ("100ms"), the site frame
// right-handed with z up and its z = 0 on the floor.
//
// What may enter: reading, checking and comparing configurations. What may
// not: judging a pose, the network, the clock. It imports zones, watchdog and
// watchdog/pose, and nothing else of this module.
//
// # The site file
//
// Keys without a default must be given. testdata/full.toml has every one.
//
//	zones                 text or list: GeoJSON files of zones, relative to the site file
//
//	[site]
//	name                  text
//	local_rules           text: which rules apply here and who checked them
//	guard                 name of this watchdog; default "pinfold"
//	fellows               names of the other guards whose permits the vehicles need too,
//	                      1 to 7; none where not given: they follow any one guard
//	enclosed              true: roof and all sides closed or netted; default false
//	ground_allowance      m, 0 to 1; default 0.30; see Grounded
//
//	[broker]
//	url                   mqtt:// or mqtts://, host and port; or a list of
//	                      them, 1 to 8, the nodes of one broker, tried in turns
//	prefix                first levels of every topic; default "pinfold"
//	user, password_file   a password never stands in the site file
//	ca, cert, key         PEM files, for mqtts://
//	budget                1ms to 1s: with a longer round trip through the broker within
//	                      the last minute nothing is permitted; none where not given
//
//	[metrics]             metrics and health over HTTP; not there: nowhere
//	listen                address and port, as 127.0.0.1:9187: what may be read
//	                      there tells where a vehicle is, so think who may
//
//	[trail]
//	dir                   default "trail"; a relative one stands below
//	                      $STATE_DIRECTORY, which systemd sets, else in the site
//	                      file's folder
//	max_size              "500MB", "2GiB"; 10 MB to 1000 TB; default "2GB"
//	key_file              default "trail.key"; resolved as dir is
//
//	[console]             the page that shows the vehicles; none where not given
//	listen                address and port; default "127.0.0.1:8087"
//	token_file            file with the token that start and reset need there; without
//	                      it the page can stop and land alone
//	cert, key             PEM files with the certificate that the page is encrypted with,
//	                      and its key; without them it is not encrypted
//
//	[apart]               between every two vehicles of the file; none where not given
//	distance              m, 0.01 to 1000: what stays between the two bodies, margins and
//	                      errors added, until both are at rest
//	lead                  m; default 0.30: how much earlier the one of lower rank stops;
//	                      0: both stop together
//
//	[[zone]]
//	name                  text, each zone its own
//	kind                  "keep-in", "keep-out", or "slow": a speed limit alone
//	speed                 m/s, 0.01 to 1000: highest in a slow or keep-in zone, and
//	                      on the way into it; two samples confirm it, and it stops
//	floor, ceiling        m in the site frame; see Grounded
//	polygon               list of [x, y], m, either way round
//	holes                 list of such lists; default none
//	vehicles              names of those it is for; default all
//
//	[[vehicle]]
//	name                  level of its topics: letters, digits, - and _
//	kind                  "rover" or "multirotor"
//	radius                m, 0 to 100: half the greatest width
//	height                m, 0 to 100: of the body, its centre in the middle
//	home                  [x, y], m; needed by limits.distance
//	rank                  1 to 100, each vehicle its own: the lower one yields; needed by
//	                      apart, unless its lead is 0
//	zone_caution          m of clearance below which the level is caution; default 0.30
//
//	[vehicle.pose]
//	axes                  "z-up", "y-up", "ned" or "optical"; a preset's where not given
//	max_age               1ms to 1s; default "100ms"
//	max_late              default max_age; 0s is off, here and below
//	frozen_after          default "200ms"
//	min_confidence        0 to 1; default 0, off
//	min_rate              Hz; default 20
//	max_speed             m/s, for the jump test; default three times the limits of
//	                      speed and of climb or descent together, 5 without a limit of
//	                      speed; 0 is off
//	jump_slack            m; default 0.05
//	max_acceleration      m/s², sharpens the jump test; default 30 where max_speed is on
//	max_clock_step        default "100ms"
//	velocity_window       0s to 1s; default "50ms"
//	velocity_tolerance    m/s between reported and derived velocity; default 0.5; 0 is off
//	restart_radius        m; default 0.1 with align, else 0, off
//	settle                default "500ms"
//	mount                 {offset = [x, y, z] in m, roll, pitch, yaw in deg}; default none
//	align                 {file, tolerance in m} as pinfold align wrote it, residual at most tolerance (default 0.5), another
//	                      may be taken while running; or {x, y, z in m, yaw in deg, residual in m, tracker}, fixed, residual
//	                      must be given. The residual adds to position_error. Default: frames are one
//	fields                JSON pointers; default Pinfold's own contract. preset ("pinfold",
//	                      "pose-stamped", "odometry", "xr") gives those of a common message
//	                      and its axes where they are not given; the others count on top.
//	                      cbor: true where messages are CBOR. stamp, stamp_unit
//	                      ("s", "ms", "us", "ns", "rfc3339"), stamp_nanos, seq, position,
//	                      orientation (pointers to objects with x, y, z and w, or tables of
//	                      pointers) or roll, pitch, yaw and degrees; velocity,
//	                      body_velocity; confidence, confidence_percent,
//	                      confidence_words; tracker
//
//	[vehicle.signing]     files of keys as pinfold key --new makes them, mode 0600, each
//	                      its own; nothing is signed, and all is taken, where not given
//	key_file              permits, commands, acknowledgements: guards and the vehicle
//	request_key_file      start, reset and alignments: guards and operators
//	pose_key_file         poses, in JSON: guards and the tracker
//
//	[vehicle.limits]      each a number, or {max, caution, confirm, answer}; off where not given
//	height                m, centre above z = 0, with what it can rise until rest
//	speed, climb, descent m/s; speed must be given where predict is on
//	tilt                  deg, 0 to 180
//	turn                  deg/s
//	distance              m from home
//	session               a duration
//	  caution             default 0.9 of max
//	  confirm             samples in a row, 0 to 1000; default 2
//	  answer              "caution", "stop" or "land"; default "stop"
//
//	[vehicle.stopping]
//	predict               default true; false is for comparing recordings only
//	reaction              0s to 10s; from the permit's withdrawal to the first braking,
//	                      and what even the fastest pose takes to arrive
//	link                  the part of reaction that is for a permit's way through the
//	                      broker; where the measured round trip is longer, what is more
//	                      is added; default 0s, so that all of it is
//	deceleration          m/s², or
//	tilt                  deg, 0.1 to 45: a multirotor brakes with g·tan(tilt)
//	vertical              m/s², multirotor; default the same as horizontally
//	acceleration          m/s² gained during the reaction; default 0
//	slope                 rise over run, downhill; default 0
//	cover_loss            true: also cover the permit's validity; default false
//	margin                m; default 0
//	position_error        m; default 0.02 (0 without predict)
//	velocity_error        m/s; default 0.05 (0 without predict)
//
//	[vehicle.permit]
//	every                 5ms to 1s; default "50ms"
//	valid                 at most 1s, longer than every, at least max_age; default "250ms"
//
//	[vehicle.timing]      command_every, ack_within, state_every, stall, caution_dwell,
//	                      trusted_for, rest_for, rest_speed (m/s), obey_slack (m/s),
//	                      obey_tolerance (0.01 to 1), obey_confirm (samples);
//	                      defaults of watchdog.DefaultTiming
package config
