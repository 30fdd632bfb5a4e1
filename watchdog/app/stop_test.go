package app

import "testing"

// Sessions are kept for the stops in them: the stop of an orderly end is none.
func TestIsStop(t *testing.T) {
	for _, c := range []struct {
		kind, body string
		want       bool
	}{
		{"command", `{"id":"a","action":"stop","cause":{"cause":"zone"}}`, true},
		{"command", `{"id":"a","action":"stop","cause":{"cause":"guard-closing"}}`, false},
		{"command", `{"cut_bytes":1}`, true},
		{"command", `not json`, true},
		{"panic", `{}`, true},
		{"level", `{"to":"stop"}`, false},
	} {
		if got := isStop(c.kind, []byte(c.body)); got != c.want {
			t.Errorf("isStop(%s, %s) = %v, want %v", c.kind, c.body, got, c.want)
		}
	}
}
