package metrics

import (
	"math"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"slices"
	"time"

	"github.com/prometheus/procfs"
)

// runtimeTold are what the Go runtime says of itself, under the names that
// Prometheus's client library for Go gives them. What is more than one sums up.
var runtimeTold = []struct {
	name, help string
	kind       kind
	of         []string // of package runtime/metrics
}{
	{"go_gc_gomemlimit_bytes", "Bound of memory that the Go runtime keeps to, GOMEMLIMIT.", gauge, []string{"/gc/gomemlimit:bytes"}},
	{"go_goroutines", "Goroutines that exist.", gauge, []string{"/sched/goroutines:goroutines"}},
	{"go_sched_gomaxprocs_threads", "Processors that Go code may use at a time, GOMAXPROCS.", gauge, []string{"/sched/gomaxprocs:threads"}},
	{"go_memstats_alloc_bytes", "Heap that is allocated and in use.", gauge, []string{"/memory/classes/heap/objects:bytes"}},
	{"go_memstats_alloc_bytes_total", "Heap allocated until now, released or not.", counter, []string{"/gc/heap/allocs:bytes"}},
	{"go_memstats_mallocs_total", "Heap objects allocated until now, released or not.", counter, []string{"/gc/heap/allocs:objects", "/gc/heap/tiny/allocs:objects"}},
	{"go_memstats_frees_total", "Heap objects freed until now.", counter, []string{"/gc/heap/frees:objects", "/gc/heap/tiny/allocs:objects"}},
	{"go_memstats_heap_inuse_bytes", "Heap spans in use.", gauge, []string{"/memory/classes/heap/objects:bytes", "/memory/classes/heap/unused:bytes"}},
	{"go_memstats_heap_idle_bytes", "Heap spans that wait to be used.", gauge, []string{"/memory/classes/heap/released:bytes", "/memory/classes/heap/free:bytes"}},
	{"go_memstats_heap_released_bytes", "Heap given back to the system.", gauge, []string{"/memory/classes/heap/released:bytes"}},
	{"go_memstats_heap_objects", "Heap objects that exist.", gauge, []string{"/gc/heap/objects:objects"}},
	{"go_memstats_next_gc_bytes", "Heap at which the next garbage collection begins.", gauge, []string{"/gc/heap/goal:bytes"}},
	{"go_memstats_stack_inuse_bytes", "Stack spans in use.", gauge, []string{"/memory/classes/heap/stacks:bytes"}},
	{"go_memstats_sys_bytes", "All memory that the Go runtime has of the system.", gauge, []string{"/memory/classes/total:bytes"}},
}

// runtimeFamilies are those of the Go runtime.
func runtimeFamilies() []*family {
	var samples []metrics.Sample
	for _, m := range runtimeTold {
		for _, name := range m.of {
			samples = append(samples, metrics.Sample{Name: name})
		}
	}
	metrics.Read(samples)
	all := []*family{collections()}
	for _, m := range runtimeTold {
		sum := 0.0
		for range m.of {
			if samples[0].Value.Kind() == metrics.KindUint64 {
				sum += float64(samples[0].Value.Uint64())
			}
			samples = samples[1:]
		}
		f := &family{name: m.name, help: m.help, kind: m.kind}
		f.add(sum)
		all = append(all, f)
	}
	info := &family{name: "go_info", help: "1, with the version of Go.", kind: gauge, labels: []string{"version"}}
	info.add(1, runtime.Version())
	return append(all, info)
}

// collections are the pauses of the last garbage collections.
func collections() *family {
	s := debug.GCStats{PauseQuantiles: make([]time.Duration, 5)}
	debug.ReadGCStats(&s)
	f := &family{name: "go_gc_duration_seconds", help: "For how long garbage collections had everything wait.", kind: summary}
	for i, q := range s.PauseQuantiles {
		f.line("", q.Seconds(), label(nil, "quantile", string(appendNumber(nil, float64(i)/4))))
	}
	f.line("_sum", s.PauseTotal.Seconds(), nil)
	f.line("_count", float64(s.NumGC), nil)
	return f
}

// processFamilies are the kernel's accounts of this process, as far as they can be
// read, under the names that Prometheus asks of every client library.
func processFamilies() (all []*family) {
	told := func(name, help string, k kind, v float64, err error) {
		if err == nil {
			f := &family{name: "process_" + name, help: help, kind: k}
			f.add(v)
			all = append(all, f)
		}
	}
	p, err := procfs.Self()
	if err != nil {
		return nil
	}
	stat, err := p.Stat()
	told("cpu_seconds_total", "Processor time of the process, seconds.", counter, stat.CPUTime(), err)
	told("resident_memory_bytes", "Memory of the process that is resident.", gauge, float64(stat.ResidentMemory()), err)
	told("virtual_memory_bytes", "Addresses that the process has.", gauge, float64(stat.VirtualMemory()), err)
	if err == nil {
		var start float64
		start, err = stat.StartTime()
		told("start_time_seconds", "When the process began, seconds since the epoch.", gauge, start, err)
	}
	open, err := p.FileDescriptorsLen()
	told("open_fds", "Files that are open.", gauge, float64(open), err)
	limits, err := p.Limits()
	most := float64(limits.OpenFiles)
	if limits.OpenFiles == math.MaxUint64 {
		most = math.Inf(1)
	}
	told("max_fds", "Files that may be open.", gauge, most, err)
	return slices.Clip(all)
}
