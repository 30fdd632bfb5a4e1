package rehearse

import "time"

// Break says which declaration does not hold. The zero Break is none.
type Break struct {
	Name     string
	Key      string        // what declares it in the site file, below [vehicle.stopping]
	Braking  float64       // share of the declared braking that is missing
	Reaction time.Duration // later than declared
	Down     time.Duration // the link to the vehicle is later than the reaction leaves it time for
	Transit  time.Duration // every pose takes this much longer, which nobody can see
	Drift    float64       // share of the way travelled that the position is off, beyond what is declared
	Gain     float64       // m/s², beyond what is declared
	Speed    float64       // m/s, error of the velocity beyond what is declared
}

// Way is how far a vehicle may have come since its tracker was tied to the room,
// m, where a Break has drift: a run begins with the drift of the way behind it.
const Way = 20.0

// Breaks are the declarations broken one at a time.
func Breaks() []Break {
	return []Break{
		{Name: "brakes 20 % weaker", Key: "deceleration", Braking: 0.2},
		{Name: "reaction 50 ms longer", Key: "reaction", Reaction: 50 * time.Millisecond},
		{Name: "drift of 1 %", Key: "position_error", Drift: 0.01},
		{Name: "link 40 ms later", Key: "reaction", Down: 40 * time.Millisecond},
		{Name: "every pose 40 ms later", Key: "reaction", Transit: 40 * time.Millisecond},
		{Name: "gains 1 m/s² more", Key: "acceleration", Gain: 1},
		{Name: "velocity 0.2 m/s further off", Key: "velocity_error", Speed: 0.2},
	}
}
