module proofpot/rig/record/peers

go 1.26.7

require (
	github.com/influxdata/line-protocol/v2 v2.2.1
	github.com/klauspost/compress v1.20.4
	modernc.org/sqlite v1.62.0
	proofpot v0.0.0
)

require (
	github.com/dustin/go-humanize v1.1.0 // indirect
	github.com/google/uuid v1.6.0 // indirect
	github.com/mattn/go-isatty v0.0.24 // indirect
	github.com/ncruces/go-strftime v1.1.0 // indirect
	github.com/pelletier/go-toml/v2 v2.4.3 // indirect
	github.com/remyoudompheng/bigfft v0.0.0-20230129092748-24d4a6f8daec // indirect
	go.bug.st/serial v1.8.0 // indirect
	golang.org/x/sys v0.50.0 // indirect
	gonum.org/v1/gonum v0.17.0 // indirect
	modernc.org/libc v1.80.1 // indirect
	modernc.org/mathutil v1.7.1 // indirect
	modernc.org/memory v1.12.1 // indirect
)

replace proofpot => ../../..
