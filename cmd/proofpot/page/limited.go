package page

import "net"

// mostConnections at once: many times what the viewers of a bench need.
const mostConnections = 512

// Limited accepts at most so many connections at once: the others wait.
func Limited(l net.Listener) net.Listener {
	return &limited{Listener: l, free: make(chan struct{}, mostConnections)}
}

type limited struct {
	net.Listener
	free chan struct{}
}

// Accept implements net.Listener.
func (l *limited) Accept() (net.Conn, error) {
	l.free <- struct{}{}
	c, err := l.Listener.Accept()
	if err != nil {
		<-l.free
		return nil, err
	}
	return &counted{Conn: c, free: l.free}, nil
}

type counted struct {
	net.Conn
	free   chan struct{}
	closed bool
}

// Close implements net.Conn.
func (c *counted) Close() error {
	err := c.Conn.Close()
	if !c.closed {
		c.closed = true
		<-c.free
	}
	return err
}
