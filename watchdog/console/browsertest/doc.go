// Package browsertest opens a page in Debian's Chromium, without a window, for
// tests of what the browser makes of it. It is for tests only; where there is no
// Chromium the test that asks for a page is skipped and says so.
package browsertest
