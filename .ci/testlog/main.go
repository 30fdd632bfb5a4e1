// Command testlog reads the output of go test -json. It prints what failed with
// its output, one line a package, and fails where a test failed or skipped: in
// CI none may skip.
package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"os"
)

// event is one line of go test -json.
type event struct {
	Action  string
	Package string
	Test    string
	Elapsed float64
	Output  string
}

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "testlog: name one file of go test -json")
		os.Exit(2)
	}
	bad, err := read(os.Args[1])
	if err != nil {
		fmt.Fprintln(os.Stderr, "testlog:", err)
		os.Exit(2)
	}
	if bad > 0 {
		fmt.Printf("%d tests failed or skipped\n", bad)
		os.Exit(1)
	}
}

func read(path string) (bad int, err error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	output := map[string][]string{}
	sc := bufio.NewScanner(f)
	sc.Buffer(nil, 16<<20)
	for sc.Scan() {
		var e event
		if json.Unmarshal(sc.Bytes(), &e) != nil {
			fmt.Println(sc.Text()) // a build failure says so in plain text
			continue
		}
		bad += e.take(output)
	}
	return bad, sc.Err()
}

// take prints what matters of e and counts what may not be.
func (e *event) take(output map[string][]string) int {
	key := e.Package + " " + e.Test
	switch e.Action {
	case "output", "build-output":
		output[key] = append(output[key], e.Output)
		return 0
	case "pass":
		if e.Test == "" {
			fmt.Printf("ok    %6.1f s  %s\n", e.Elapsed, e.Package)
		}
		delete(output, key)
		return 0
	case "skip":
		if e.Test == "" {
			return 0 // a package without tests
		}
	case "fail", "build-fail":
	default:
		return 0
	}
	fmt.Printf("%s  %s\n", e.Action, key)
	for _, l := range output[key] {
		fmt.Print("    ", l)
	}
	return 1
}
