// Package site serves the page of a bench to a browser on the same machine:
// its files, calls to an API, a stream of events, and links to files. It knows
// nothing of coils; it keeps out who has no business there.
//
// A program that plays sounds and writes files must not do so for every web
// page that is open in the same browser. So every call needs a key that is made
// at each start and travels in the fragment of the address, which browsers send
// to nobody; Host and Origin must be the server's own; reading changes nothing;
// and a strict content policy keeps the page from asking anybody else.
package site

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"
)

// DefaultListen is where a page is served unless something else is asked for.
const DefaultListen = "127.0.0.1:8137"

// Options say what is served, where and to whom.
type Options struct {
	// Root is the folder to which Confine keeps paths.
	Root string
	// Listen is the address, "127.0.0.1:8137" by default; port 0 is any free one.
	Listen string
	// Hosts are further names by which a browser may call the server, without
	// the port.
	Hosts []string
	// Key is the secret of this start; empty: a new one of 128 bits.
	Key string
	// Static are files beside the embedded ones, by their path from "/".
	Static fs.FS
	// Fault is told of what is wrong in the program itself: a panic in a handler,
	// with its stack, or an event that is no JSON. nil: nobody is.
	Fault func(text string)

	waits waits // zero: usualWaits
}

// waits are how long the server is patient.
type waits struct {
	header time.Duration // for the whole header of a request
	idle   time.Duration // for the next request of a connection
	write  time.Duration // for a page to take in an event
	alive  time.Duration // between comments in a stream of events
	place  time.Duration // in which a page keeps its place among those that hear events
	stop   time.Duration // for calls to end once the server shall
}

var usualWaits = waits{header: 5 * time.Second, idle: 2 * time.Minute, write: 10 * time.Second, alive: 10 * time.Second,
	place: 30 * time.Second,
	stop:  900 * time.Millisecond}

// Server is a page that listens. Its methods are safe for concurrent use once
// the routes are there.
type Server struct {
	root     string
	dir      *os.Root // of root
	key      string
	hosts    map[string]bool // with the port
	listener net.Listener
	mux      *http.ServeMux
	events   *Events
	fault    func(string)
	waits    waits

	methods map[string][]string // of each path

	lock  sync.Mutex
	links map[string]link
}

// New listens, so that the address is known and taken; Serve answers.
func New(o Options) (*Server, error) {
	if o.Listen == "" {
		o.Listen = DefaultListen
	}
	if o.Fault == nil {
		o.Fault = func(string) {}
	}
	if o.waits == (waits{}) {
		o.waits = usualWaits
	}
	if o.Key == "" {
		random := make([]byte, 16)
		rand.Read(random) // never fails
		o.Key = strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(random))
	}
	host, port, err := net.SplitHostPort(o.Listen)
	if err != nil {
		return nil, fmt.Errorf("cannot listen on %q: want ADDRESS:PORT, such as %s", o.Listen, DefaultListen)
	}
	root, dir, err := openRoot(o.Root)
	if err != nil {
		return nil, fmt.Errorf("cannot serve from %s: %w", o.Root, err)
	}
	listener, err := net.Listen("tcp", o.Listen)
	if err != nil {
		dir.Close()
	}
	switch {
	case errors.Is(err, syscall.EADDRINUSE), errors.Is(err, wsaAddrInUse):
		return nil, fmt.Errorf("cannot listen on %s: port %s is in use, perhaps by this program started before: stop "+
			"that, or choose another port with --listen %s", o.Listen, port, net.JoinHostPort(host, "0"))
	case err != nil:
		return nil, fmt.Errorf("cannot listen on port %s of %s: %w: choose another address with --listen, such as %s",
			port, host, cause(err), DefaultListen)
	}
	s := &Server{
		root: root, dir: dir, key: o.Key, listener: listener, mux: http.NewServeMux(),
		events: newEvents(o.waits, o.Fault),
		fault:  o.Fault, waits: o.waits, links: map[string]link{}, methods: map[string][]string{},
	}
	s.hosts = ownHosts(listener.Addr().(*net.TCPAddr), o.Hosts)
	s.mux.Handle("/{path...}", files{both{assets(), o.Static}})
	s.mux.HandleFunc("GET /file/{token}/{name}", s.serveLink)
	s.mux.Handle("GET /api/events", s.events)
	for _, path := range []string{"/file/{token}/{name}", "/api/events"} {
		s.otherwise(path, http.MethodGet)
	}
	return s, nil
}

// wsaAddrInUse is EADDRINUSE as Windows numbers it (Windows Sockets Error Codes).
const wsaAddrInUse = syscall.Errno(10048)

func openRoot(name string) (string, *os.Root, error) {
	root, err := filepath.Abs(name)
	if err != nil {
		return "", nil, err
	}
	dir, err := os.OpenRoot(root)
	return root, dir, err
}

// cause is err without the address, which is told already.
func cause(err error) error {
	var op *net.OpError
	if errors.As(err, &op) {
		return op.Err
	}
	return err
}

// ownHosts are the values of Host that mean this server. Browsers leave out
// port 80.
func ownHosts(at *net.TCPAddr, further []string) map[string]bool {
	names := append([]string{"localhost"}, further...)
	switch {
	case at.IP.IsUnspecified():
		names = append(names, "127.0.0.1", "::1")
		for _, ip := range machineIPs() {
			names = append(names, ip.String())
		}
	default:
		names = append(names, at.IP.String())
	}
	hosts := map[string]bool{}
	for _, name := range names {
		host := strings.ToLower(net.JoinHostPort(strings.Trim(name, "[]"), fmt.Sprint(at.Port)))
		hosts[host] = true
		if at.Port == 80 {
			hosts[strings.TrimSuffix(host, ":80")] = true
		}
	}
	return hosts
}

// machineIPs are the addresses of this machine's interfaces.
func machineIPs() (ips []net.IP) {
	addresses, _ := net.InterfaceAddrs()
	for _, a := range addresses {
		if n, ok := a.(*net.IPNet); ok {
			ips = append(ips, n.IP)
		}
	}
	return ips
}

// Loopback tells whether only this machine reaches the server.
func (s *Server) Loopback() bool { return s.listener.Addr().(*net.TCPAddr).IP.IsLoopback() }

// URL is the address with the key, for the user alone. Where the server listens
// on all addresses of the machine it is the one for this machine.
func (s *Server) URL() string {
	at := *s.listener.Addr().(*net.TCPAddr)
	if at.IP.IsUnspecified() {
		at.IP = net.IPv4(127, 0, 0, 1)
	}
	return s.urlAt(&at)
}

// OtherURLs are the addresses for other machines where URL is not one of them:
// those of the machine's networks, if the server listens on all.
func (s *Server) OtherURLs() []string {
	at := *s.listener.Addr().(*net.TCPAddr)
	if !at.IP.IsUnspecified() {
		return nil
	}
	var urls []string
	for _, ip := range machineIPs() {
		if ip.IsGlobalUnicast() {
			urls = append(urls, s.urlAt(&net.TCPAddr{IP: ip, Port: at.Port}))
		}
	}
	return urls
}

// TabletURL is the address by which another machine opens the page, the first where there
// are several; empty: none does.
func (s *Server) TabletURL() string {
	if others := s.OtherURLs(); len(others) > 0 {
		return others[0]
	}
	if at := s.listener.Addr().(*net.TCPAddr); !at.IP.IsLoopback() && !at.IP.IsUnspecified() {
		return s.URL()
	}
	return ""
}

func (s *Server) urlAt(at *net.TCPAddr) string { return "http://" + at.String() + "/#key=" + s.key }

// Events is what all open pages hear.
func (s *Server) Events() *Events { return s.events }

// Serve answers until ctx ends, and then for at most a second more: the
// contexts of calls end with ctx, and who still waits is cut off.
func (s *Server) Serve(ctx context.Context) error {
	defer s.dir.Close()
	server := &http.Server{
		Handler: s.guard(compress(s.mux)), ReadHeaderTimeout: s.waits.header, IdleTimeout: s.waits.idle,
		MaxHeaderBytes: 32 << 10,
		BaseContext:    func(net.Listener) context.Context { return ctx },
		ErrorLog:       log.New(io.Discard, "", 0), // of connections, which users cannot help
	}
	stopped := make(chan struct{})
	defer context.AfterFunc(ctx, func() {
		defer close(stopped)
		end, cancel := context.WithTimeout(context.WithoutCancel(ctx), s.waits.stop)
		defer cancel()
		if server.Shutdown(end) != nil {
			server.Close()
		}
	})()
	err := server.Serve(s.listener)
	if errors.Is(err, http.ErrServerClosed) {
		<-stopped
		return nil
	}
	return err
}

// Close gives the address back without having served.
func (s *Server) Close() error {
	s.dir.Close()
	return s.listener.Close()
}
