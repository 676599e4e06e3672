package main

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"polewise/assets"
	"polewise/layout"
	"polewise/server/desk"
	"polewise/server/pairing"
	"polewise/server/store"
	"polewise/server/web"
	"polewise/server/whole"
)

// benchOptions are the flags of bench.
type benchOptions struct {
	plan, listen, phoneListen, data, readyFile, cert, key string
}

func benchCommand() *cobra.Command {
	var o benchOptions
	c := &cobra.Command{
		Use:   "bench",
		Short: "Serve the bench page and the phone page",
		Args:  noCommand,
		RunE:  func(c *cobra.Command, _ []string) error { return bench(c, o) },
	}
	f := c.Flags()
	f.StringVar(&o.plan, "plan", "", "the pad's plan, a TOML `FILE` (default: a demo)")
	f.StringVar(&o.listen, "listen", "127.0.0.1:8770", "`HOST:PORT` of the bench page")
	f.StringVar(&o.phoneListen, "phone-listen", "0.0.0.0:8771", "`HOST:PORT` of the phone page (TLS)")
	f.StringVar(&o.data, "data", "", "data `FOLDER` (default: polewise in your configuration folder)")
	f.StringVar(&o.readyFile, "ready-file", "", "write addresses to this `FILE` once everything listens")
	f.StringVar(&o.cert, "cert", "", "certificate chain of your own for the phone page, PEM `FILE`")
	f.StringVar(&o.key, "key", "", "its key, PEM `FILE`")
	return c
}

const shutdownWait = 5 * time.Second

func bench(c *cobra.Command, o benchOptions) error {
	ctx, stop := untilStopped(c.Context())
	defer stop()
	log := slog.New(slog.NewTextHandler(c.ErrOrStderr(), &slog.HandlerOptions{Level: slog.LevelInfo}))
	if (o.cert == "") != (o.key == "") {
		return usage(errors.New("--cert and --key go together: name both files, or neither"))
	}
	text, err := planText(o.plan)
	if err != nil {
		return err
	}
	if o.data == "" {
		dir, err := os.UserConfigDir()
		if err != nil {
			return usage(fmt.Errorf("no configuration folder is known (%w): name one with --data", err))
		}
		o.data = filepath.Join(dir, "polewise")
	}

	st, err := store.Open(o.data)
	if err != nil {
		return dataWords(err)
	}
	defer st.Close()
	forgetReady(o.readyFile)
	key, err := pairing.OpenKey(o.data)
	if err != nil {
		return dataWords(err)
	}
	benchLn, err := listen(o.listen, "--listen")
	if err != nil {
		return err
	}
	defer benchLn.Close()
	phoneLn, err := listen(o.phoneListen, "--phone-listen")
	if err != nil {
		return err
	}
	defer phoneLn.Close()

	d, err := desk.Open(ctx, st, text, log)
	if err != nil {
		return dataWords(fmt.Errorf("cannot use %s: %w", st.Path(), err))
	}
	defer func() { stop(); d.Wait() }() // before what it writes to is closed
	site := web.NewSite(d, st, key, log)
	defer site.Close()
	if o.plan != "" {
		site.WatchPlan(o.plan)
	}
	getCertificate, caFile, err := certificate(o, site, log)
	if err != nil {
		return err
	}
	urls := addresses(benchLn, phoneLn, o.phoneListen, key)
	urls.CAFile = caFile
	tell := func(phone string) error { return tellPairing(d, phone, o.cert != "") }
	if err := tell(urls.Phone); err != nil {
		return err
	}
	if everywhere(o.phoneListen) {
		var beside sync.WaitGroup
		beside.Go(func() {
			followAddresses(ctx, followEvery, urls.Phone, pairing.Addresses, func(phone string) {
				log.Info("this machine has another address: scan the QR code on the bench page again", "phone_page", phone)
				if err := tell(phone); err != nil {
					log.Error("no QR code for the new address", "err", err)
				}
			})
		})
		defer func() { stop(); beside.Wait() }()
	}

	benchSrv := server(site.Bench(o.listen), log)
	phoneSrv := server(site.Phone(), log)
	phoneSrv.TLSConfig = &tls.Config{GetCertificate: getCertificate, MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}}
	failed := make(chan error, 2)
	go func() { failed <- benchSrv.Serve(benchLn) }()
	go func() { failed <- phoneSrv.ServeTLS(phoneLn, "", "") }()
	trouble := untilEnded(ctx, c, o.readyFile, urls, st.Path(), failed)
	stop()
	site.Close()
	wait, cancel := context.WithTimeout(context.Background(), shutdownWait)
	defer cancel()
	return errors.Join(trouble, benchSrv.Shutdown(wait), phoneSrv.Shutdown(wait))
}

// planText is the plan to begin with: the one named, else a demo.
func planText(name string) (desk.PlanText, error) {
	if name == "" {
		return desk.PlanText{Name: "kennel.toml", TOML: assets.Demo()}, nil
	}
	raw, err := layout.ReadFile(name)
	if err != nil {
		return desk.PlanText{}, badData(cannotRead("a plan", name, err))
	}
	if _, err := layout.Parse(name, raw); err != nil {
		return desk.PlanText{}, badData(err)
	}
	return desk.PlanText{Name: name, TOML: raw, Asked: true}, nil
}

// untilEnded says where the pages are and waits for the end.
func untilEnded(ctx context.Context, c *cobra.Command, readyFile string, u urls, data string, failed <-chan error) error {
	if readyFile != "" {
		if err := writeReady(readyFile, u); err != nil {
			return err
		}
	}
	welcome(c, u, data)
	select {
	case <-ctx.Done():
		return nil
	case err := <-failed:
		return err
	}
}

func listen(address, flag string) (net.Listener, error) {
	ln, err := net.Listen("tcp", address)
	if err != nil {
		said := listenWords(address, flag, err)
		if errors.Is(err, syscall.EADDRINUSE) {
			return nil, &exitError{exitUnavailable, said}
		}
		return nil, usage(said)
	}
	return ln, nil
}

func server(h http.Handler, log *slog.Logger) *http.Server {
	return &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 10 * time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    32 << 10,
		// Phones that have not accepted the certificate yet end handshakes; that
		// is no news.
		ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelDebug),
	}
}

// certificateFor is what tls.Config.GetCertificate takes.
type certificateFor func(*tls.ClientHelloInfo) (*tls.Certificate, error)

// certificate is the maker's own, or by the local authority, issued anew when
// the machine's addresses change.
func certificate(o benchOptions, site *web.Site, log *slog.Logger) (get certificateFor, caFile string, err error) {
	if o.cert != "" {
		cert, err := tls.LoadX509KeyPair(o.cert, o.key)
		if err != nil {
			return nil, "", usage(fmt.Errorf("the certificate cannot be used: %w. --cert takes the chain, --key its key, both PEM", err))
		}
		return func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return &cert, nil }, "", nil
	}
	authority, err := pairing.OpenAuthority(o.data)
	if err != nil {
		return nil, "", dataWords(err)
	}
	var always []net.IP
	if host, _, err := net.SplitHostPort(o.phoneListen); err == nil {
		if ip := net.ParseIP(host); ip != nil && !ip.IsUnspecified() {
			always = append(always, ip)
		}
	}
	fresh, err := authority.Fresh(always, log)
	if err != nil {
		return nil, "", dataWords(err)
	}
	site.CA = authority.DER()
	caFile, err = filepath.Abs(authority.CertificateFile()) // whoever reads the ready file may be in another folder
	return fresh.Certificate, caFile, err
}

// urls is what the ready file holds.
type urls struct {
	Bench  string `json:"bench_url"`
	Phone  string `json:"phone_url"`
	Stream string `json:"stream_url"`
	CAFile string `json:"ca_file"`
}

func addresses(benchLn, phoneLn net.Listener, phoneListen string, key pairing.Key) urls {
	host, _, _ := net.SplitHostPort(phoneListen)
	if everywhere(phoneListen) {
		host = "127.0.0.1"
		if ips, _ := pairing.Addresses(); len(ips) > 0 {
			host = ips[0].String()
		}
	}
	phone := net.JoinHostPort(host, strconv.Itoa(phoneLn.Addr().(*net.TCPAddr).Port))
	return urls{
		Bench:  fmt.Sprintf("http://%s/", benchLn.Addr()),
		Phone:  fmt.Sprintf("https://%s/%s/", phone, key),
		Stream: fmt.Sprintf("wss://%s/%s/stream", phone, key),
	}
}

// forgetReady takes away the ready file of a bench that ended before this one: who waits
// for the file would take it for this one's. What is no plain file is left alone.
func forgetReady(path string) {
	if info, err := os.Lstat(path); err == nil && info.Mode().IsRegular() {
		_ = os.Remove(path) // if not, it is told when the new one is written
	}
}

func writeReady(path string, u urls) error {
	raw, err := json.Marshal(u)
	if err == nil {
		err = whole.Write(path, append(raw, '\n'), 0o600)
	}
	if err != nil {
		return fmt.Errorf("--ready-file %s: it cannot be written: %w. Name a file in a folder that you may write to", path, err)
	}
	return nil
}

func welcome(c *cobra.Command, u urls, data string) {
	w := c.ErrOrStderr()
	fmt.Fprintf(w, "\nBench page:  %s\nPhone page:  %s\n", u.Bench, u.Phone)
	if qr, err := pairing.Terminal(u.Phone); err == nil {
		fmt.Fprintf(w, "\n%s\n", qr)
	}
	fmt.Fprintf(w, "%s Checks and records are kept in %s.\n\n%s\n\nCtrl+C ends it.\n", reach(u.Phone), data, cautions)
}

// reach says which phones can open the phone page.
func reach(phone string) string {
	if u, err := url.Parse(phone); err == nil {
		if ip := net.ParseIP(u.Hostname()); ip != nil && ip.IsLoopback() {
			return "That address is this computer's own: a phone reaches it only once the computer is on a network, and --phone-listen lets it."
		}
	}
	return "The phone must be on the same network."
}
