// Package browsertest holds the tests that drive the pages in a real browser.
package browsertest
