// Package mosquittotest runs a real mosquitto for a test: on a free port of the
// loopback, with a configuration of its own, ended with the test. Where the
// program is not installed, the test is skipped and says so.
//
// What may enter: starting and ill-treating that process. Only tests import it.
package mosquittotest
