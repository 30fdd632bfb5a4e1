package config

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"pinfold/watchdog"
	"pinfold/zones"
)

// Site is one room or yard: what one site file says, checked. It is not to be
// changed after Load; what it points to is shared.
type Site struct {
	Path       string   // of the site file, as given to Load
	Name       string   // for people
	LocalRules string   // which rules apply here and who checked them
	Guard      string   // name of this watchdog on the wire; "pinfold" where not given
	Fellows    []string // names of the guards that the vehicles need permits of beside this one's; none: of any one guard
	Broker     Broker
	Trail      Trail
	Metrics    string // address where metrics and health are served; empty: nowhere
	Console    Console
	Vehicles   []Vehicle // at least one, in the order of the file
	Files      []File    // the site file first, then the zone files, exactly as read
	Hash       string    // lower-case hex SHA-256 over Files; see hashFiles
	Cautions   []Problem // what is allowed, but should be known

	rooms []Room
}

// Broker is the MQTT broker of the site.
type Broker struct {
	URL          string        // mqtt://host:port or mqtts://host:port
	More         []string      // addresses of further nodes of the same broker, tried in turns
	Prefix       string        // first levels of every topic; "pinfold" where not given
	User         string        // empty: none
	PasswordFile string        // file that holds the password, relative paths resolved; empty: none
	CA           string        // PEM file of the authority that signed the broker's certificate; empty: the system's
	Budget       time.Duration // longest round trip through the broker with which anything is permitted; 0: none declared
	Cert, Key    string        // PEM files of the client's own certificate; both or neither
}

// Addresses are those of all nodes, for people.
func (b *Broker) Addresses() string {
	return strings.Join(append([]string{b.URL}, b.More...), " or ")
}

// Trail says where the evidence goes.
type Trail struct {
	// Dir is the directory of the trail. A relative one stands below
	// $STATE_DIRECTORY (set by systemd), or the site file's folder where that
	// is not set; "trail" where not given.
	Dir      string
	MaxBytes int64  // bound of the whole directory, bytes; 2 GB where not given
	KeyFile  string // signing key, resolved as Dir is; "trail.key" where not given
}

// Console says where the page that shows the vehicles is served.
type Console struct {
	Listen    string // address and port; empty: nowhere
	TokenFile string // file that holds the word without which nobody can start or reset there, relative paths resolved; empty: nobody can
	Cert, Key string // PEM files with its certificate and that one's key, relative paths resolved; empty: unencrypted
}

// Vehicle is one vehicle and everything its watchdog needs.
type Vehicle struct {
	Name string
	// Config is complete but for Session and NonceSeed, which the caller draws
	// for every session.
	Config watchdog.Config
	// Shapes are the vehicle's zones as declared. Config.Zones holds them as
	// judged: those that stand on the floor reach below it (see Grounded).
	Shapes []zones.Shape
	// AlignFile is the alignment file that the site file names, relative paths
	// resolved, whether it is there or not; empty: none.
	AlignFile string
	Signing   Signing // files of the keys that its messages are signed with
}

// File is one file as it was read.
type File struct {
	Name string // as the site file names it; the site file's own without its directory
	Data []byte
}

// Room is what the declared stopping leaves of one vehicle's pen: where its
// centre can be, at rest and at the speed limit, heading anywhere, and still
// come to rest inside. Lengths in metres, areas in m².
type Room struct {
	Vehicle string
	Predict bool    // false: bare rules, nothing is predicted and Moving equals AtRest
	Speed   float64 // m/s, the speed limit Moving is for; 0 where there is none
	Climb   float64 // m/s, the climb limit Moving is for; 0 where there is none
	Descent float64 // m/s, the descent limit; 0 where there is none
	// Reaction is the assumed time until braking begins, s: pose age (half of
	// max_age) and the time to the next judgement, or the permit's validity
	// where cover_loss is on and that is longer; lag of the velocity (half its
	// window); and the declared reaction.
	Reaction float64
	Stopping float64 // m, from Speed until rest
	// Unguarded is how far the vehicle goes from Speed until rest if the
	// daemon dies: the permit's validity first, then the declared stop.
	Unguarded float64
	AtRest    Space
	Moving    Space
	// Fastest is the highest speed, m/s, up to the limit, at which anything is
	// left, to 0.01 m/s; 0 where nothing is left even at rest.
	Fastest float64
}

// Space is the part of the pen the vehicle's centre may be in.
type Space struct {
	Inset  float64  // m, kept from every wall
	Area   float64  // m², on the floor plan; 0: nothing is left
	Pieces int      // parts it falls into
	Centre zones.XY // m, of the largest circle that fits
	Radius float64  // m, of that circle
	Floor  float64  // m, lower end of the height band of the centre
	Top    float64  // m, upper end
}

// Empty says whether nothing is left.
func (s Space) Empty() bool { return !(s.Area > 0) || !(s.Top > s.Floor) }

// Vehicle finds a vehicle by name.
func (s *Site) Vehicle(name string) (*Vehicle, bool) {
	for i := range s.Vehicles {
		if s.Vehicles[i].Name == name {
			return &s.Vehicles[i], true
		}
	}
	return nil, false
}

// Rooms gives what the declared stopping leaves, a Room per vehicle in the
// order of Vehicles. It was computed by Load.
func (s *Site) Rooms() []Room { return append([]Room(nil), s.rooms...) }

// Only gives the site with the vehicles of these names alone, in the file's
// order. It is an error to leave out one that another keeps apart from, since
// where that can come to is known to its own guard alone.
func (s *Site) Only(names []string) (*Site, error) {
	out := *s
	out.Vehicles, out.rooms = nil, nil
	var known []string
	for i := range s.Vehicles {
		known = append(known, s.Vehicles[i].Name)
	}
	for _, n := range names {
		if !slices.Contains(known, n) {
			return nil, fmt.Errorf("the site has no vehicle %q; give --vehicle as one of: %s", n, strings.Join(known, ", "))
		}
	}
	for i := range s.Vehicles {
		v := &s.Vehicles[i]
		if !slices.Contains(names, v.Name) {
			continue
		}
		for k := range v.Config.Others {
			if o := v.Config.Others[k].Name; !slices.Contains(names, o) {
				return nil, fmt.Errorf("%q keeps apart from %q by [apart], and only one guard of both can see to that; guard both together, or take [apart] out of the site file", v.Name, o)
			}
		}
		out.Vehicles, out.rooms = append(out.Vehicles, *v), append(out.rooms, s.rooms[i])
	}
	return &out, nil
}
