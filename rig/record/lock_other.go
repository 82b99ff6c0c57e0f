//go:build !unix

package record

import "os"

func lock(*os.File) error { return nil }
