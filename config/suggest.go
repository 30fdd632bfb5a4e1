package config

// nearest is the known word closest to word, where one is close enough to be
// meant: at most a third of its letters differ, and at most two.
func nearest(word string, known []string) (string, bool) {
	best, bestAt := "", 3
	for _, k := range known {
		most := min(2, max(len(k)/3, 1))
		if d := editDistance(word, k, most); d <= most && d < bestAt {
			best, bestAt = k, d
		}
	}
	return best, bestAt < 3
}

// editDistance counts the letters to insert, remove, change or swap with a
// neighbour to come from a to b (optimal string alignment). Above most it is
// only known to be above.
func editDistance(a, b string, most int) int {
	if len(a)-len(b) > most || len(b)-len(a) > most {
		return most + 1
	}
	rows := [3][]int{make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)}
	for j := range rows[0] {
		rows[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		now, up, upper := rows[i%3], rows[(i+2)%3], rows[(i+1)%3]
		now[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			now[j] = min(up[j]+1, now[j-1]+1, up[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				now[j] = min(now[j], upper[j-2]+1)
			}
		}
	}
	return rows[len(a)%3][len(b)]
}
