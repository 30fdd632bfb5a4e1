package metrics

import (
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"pinfold/watchdog"
)

// Set is the metrics of one session. Its methods may be called by any goroutine
// and never wait for a reader.
type Set struct {
	reg      *prometheus.Registry
	now      func() time.Duration
	vehicles []vehicle
	trail    func() Trail
	reloads  *prometheus.CounterVec
	unsigned *prometheus.CounterVec
	judged   *prometheus.HistogramVec
}

// vehicle is what is known of one.
type vehicle struct {
	name   string
	last   atomic.Pointer[watchdog.Snapshot]
	beat   atomic.Int64 // session instant of the newest step, ns; 0 before the first
	link   atomic.Bool
	judged prometheus.Observer
}

// Trail is how the trail stands.
type Trail struct {
	OK    bool
	Lost  uint64 // items and records that will never be in it
	Lines uint64 // durable records
	Items uint64 // durable messages
	Bytes int64  // of all sessions together
	Bound int64  // of Bytes
	Free  int64  // on the disk; -1 unknown

	Steps   uint64        // of the wall clock
	Stepped time.Duration // the last of them
}

// Session says what is running.
type Session struct {
	Version  string
	Began    time.Time            // the session's instant zero
	Now      func() time.Duration // session instant
	Vehicles []string
	Signed   []string     // the kinds of messages that may have to be signed
	Trail    func() Trail // how it stands now; of any goroutine
}

// New makes the metrics of a session, in a registry of their own.
func New(s Session) (*Set, error) {
	m := &Set{reg: prometheus.NewRegistry(), now: s.Now, trail: s.Trail, vehicles: make([]vehicle, len(s.Vehicles))}
	m.reloads = prometheus.NewCounterVec(prometheus.CounterOpts{Name: "pinfold_reloads_total",
		Help: "Site files read again while running, by whether they were taken."}, []string{"result"})
	m.unsigned = prometheus.NewCounterVec(prometheus.CounterOpts{Name: "pinfold_messages_unsigned_total",
		Help: "Messages that counted as none, since they lacked the signature that the site file asks for, by kind."}, []string{"vehicle", "kind"})
	m.judged = prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "pinfold_judgement_seconds",
		Help:    "From the arrival of a pose to its judgement, permit and commands handed over.",
		Buckets: []float64{25e-6, 50e-6, 100e-6, 250e-6, 500e-6, 1e-3, 2e-3, 5e-3, 10e-3, 20e-3, 50e-3, 100e-3, 250e-3}}, []string{"vehicle"})
	for i := range s.Vehicles {
		m.vehicles[i].name = s.Vehicles[i]
		m.vehicles[i].judged = m.judged.WithLabelValues(s.Vehicles[i])
		for _, kind := range s.Signed {
			m.unsigned.WithLabelValues(s.Vehicles[i], kind)
		}
	}
	for _, result := range []string{"taken", "refused"} {
		m.reloads.WithLabelValues(result)
	}
	began := prometheus.NewGauge(prometheus.GaugeOpts{Name: "pinfold_session_start_time_seconds",
		Help: "When the session began, seconds since the epoch, by the guard's wall clock."})
	began.Set(float64(s.Began.UnixMilli()) / 1e3)
	build := prometheus.NewGauge(prometheus.GaugeOpts{Name: "pinfold_build_info",
		Help: "1, with the program's version.", ConstLabels: prometheus.Labels{"version": s.Version}})
	build.Set(1)
	for _, c := range []prometheus.Collector{m, m.reloads, m.unsigned, m.judged, began, build, collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{})} {
		if err := m.reg.Register(c); err != nil {
			return nil, err
		}
	}
	return m, nil
}

// Watch is shown the snapshot of vehicle i. It keeps a copy.
func (m *Set) Watch(i int, s *watchdog.Snapshot) {
	c := *s
	m.vehicles[i].last.Store(&c)
}

// Beat says that the loop of vehicle i has judged at now, a session instant.
func (m *Set) Beat(i int, now time.Duration) { m.vehicles[i].beat.Store(max(1, int64(now))) }

// Judged says how long a pose of vehicle i took from arrival to judgement.
func (m *Set) Judged(i int, took time.Duration) { m.vehicles[i].judged.Observe(took.Seconds()) }

// Link says whether the connection of vehicle i to the broker is up.
func (m *Set) Link(i int, up bool) { m.vehicles[i].link.Store(up) }

// Unsigned counts a message of a kind, for vehicle i, that lacked its signature.
func (m *Set) Unsigned(i int, kind string) {
	m.unsigned.WithLabelValues(m.vehicles[i].name, kind).Inc()
}

// Reload counts a site file that was read again.
func (m *Set) Reload(taken bool) {
	result := "refused"
	if taken {
		result = "taken"
	}
	m.reloads.WithLabelValues(result).Inc()
}
