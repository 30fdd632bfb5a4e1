// Package faults shows how long it takes from a fault to motors cut: a guard and
// a broker as processes of their own, a simulated vehicle at cruise speed that
// obeys by the receiver that real ones import, and then something that happens to
// one of them. docs/faults.md says what the rows are and what bounds them.
//
// What may enter: the faults, how they are caused, what is measured. What may
// not: a terminal, the testing package, any decision of the watchdog's. The guard
// is only known as a program that is run.
package faults
