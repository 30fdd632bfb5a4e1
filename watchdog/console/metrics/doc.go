// Package metrics shows a running guard to a monitoring system: the Prometheus
// text format at /metrics, and whether the guard lives and could permit at
// /healthz and /readyz. It reads what it is shown, and nothing waits for it.
//
// What may enter: metrics of what people of a site would want a graph or an alarm
// of. Nothing here is judged by; an alarm is no stop.
package metrics
