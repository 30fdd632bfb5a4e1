package config

import "testing"

// BenchmarkParse is what check and run cost at the start.
func BenchmarkParse(b *testing.B) {
	for _, name := range []string{"sketch", "demo", "full"} {
		b.Run(name, func(b *testing.B) {
			data, err := readTestdata(name + ".toml")
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if _, err := Parse("site.toml", data, readTestdata); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
