package record

import "os"

// DemoRun is a sheet for tests outside this package.
var DemoRun = demoRun

// WrapResumed puts a file of a test's round that of resumed records.
func WrapResumed(wrap func(f *os.File, size int64) File) { resumedFile = wrap }
