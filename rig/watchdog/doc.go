// Package watchdog tells those who watch over the process that its loop turns:
// the machine's own watchdog, a device of the kernel that starts the machine anew
// when it hears nothing, and systemd, which starts the service anew. Both are
// told from the loop itself, once a step, and never from a goroutine beside it
// that would go on while the loop hangs.
//
// Sources: the kernel's Documentation/watchdog/watchdog-api.rst (a write is a
// sign of life; "V" as the last byte before closing disarms, where the driver
// allows it; without it the machine starts anew after its time-out), and
// sd_notify(3), sd_watchdog_enabled(3): datagrams to the socket that NOTIFY_SOCKET
// names, WATCHDOG_USEC and WATCHDOG_PID.
package watchdog
