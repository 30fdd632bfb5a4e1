// Package mosquittotest runs a real mosquitto for a test: on a free port of the
// loopback, with a configuration of its own, ended with the test. Where the
// program is not installed, the test is skipped and says so. A Way leads to any
// broker, and can be made slow or be cut.
//
// What may enter: starting and ill-treating that process, and the way to it. Only tests import it.
package mosquittotest
