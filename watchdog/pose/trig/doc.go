// Package trig has the few functions of angles that decisions hang on, with the
// same bits on every machine.
//
// Package math promises no more than a good approximation: on some processors
// it is written in assembly, and on some the compiler fuses a product and a sum
// into one instruction that rounds once. Here every product is rounded by an
// explicit conversion, which forbids fusing (Go specification, "Floating-point
// operators"), and only +, -, *, / and the square root are used, which IEEE 754
// defines to the last bit. The results are within two units in the last place
// of the truth (tested against sums with math/big).
//
// What may enter: functions of numbers. What may not: anything else.
package trig

// MaxAngle is the largest angle Sincos and Tan take, rad: up to it the
// reduction by multiples of π/2 is exact enough.
const MaxAngle = 1e6
