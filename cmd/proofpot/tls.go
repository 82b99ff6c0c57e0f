package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"log"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"time"

	"proofpot/rig/benchstate"
	"proofpot/rig/record"
)

// tls gives the server's certificate: the one that was named, or one of its own,
// made once and kept in the state folder, so that a telephone that has accepted
// it is not asked again.
func (c *serveCmd) tls(at net.Addr) (*tls.Config, string, error) {
	cert, key := c.Cert, c.CertKey
	if (cert == "") != (key == "") {
		return nil, "", errors.New("--cert and --cert-key belong together")
	}
	if cert == "" {
		base := c.State
		if base == "" {
			var err error
			if base, err = benchstate.DefaultBase(os.Getenv); err != nil {
				return nil, "", err
			}
		}
		cert, key = filepath.Join(base, "page-cert.pem"), filepath.Join(base, "page-key.pem")
		if !usable(cert, time.Now()) {
			if err := makeCert(cert, key, time.Now()); err != nil {
				return nil, "", err
			}
		}
	}
	pair, err := tls.LoadX509KeyPair(cert, key)
	if err != nil {
		return nil, "", fmt.Errorf("certificate of the page: %w", err)
	}
	sum := sha256.Sum256(pair.Certificate[0])
	return &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}, hex.EncodeToString(sum[:]), nil
}

// usable says whether a certificate is there and lasts another month.
func usable(file string, now time.Time) bool {
	data, err := os.ReadFile(file)
	if err != nil {
		return false
	}
	block, _ := pem.Decode(data)
	if block == nil {
		return false
	}
	cert, err := x509.ParseCertificate(block.Bytes)
	return err == nil && now.Before(cert.NotAfter.AddDate(0, -1, 0))
}

// makeCert makes a certificate for this machine's names and addresses.
func makeCert(certFile, keyFile string, now time.Time) error {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
	if err != nil {
		return err
	}
	t := &x509.Certificate{SerialNumber: serial, Subject: pkix.Name{CommonName: "proofpot bench"}, NotBefore: now.Add(-time.Hour),
		NotAfter: now.AddDate(1, 0, 0), KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, DNSNames: []string{"localhost"}}
	if name, err := os.Hostname(); err == nil && name != "localhost" {
		t.DNSNames = append(t.DNSNames, name, name+".local")
	}
	if addresses, err := net.InterfaceAddrs(); err == nil {
		for _, a := range addresses {
			if n, ok := a.(*net.IPNet); ok {
				t.IPAddresses = append(t.IPAddresses, n.IP)
			}
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, t, t, &key.PublicKey, key)
	if err != nil {
		return err
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(certFile), 0o700); err != nil {
		return err
	}
	if err := record.WriteWhole(keyFile, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private}), 0o600); err != nil {
		return err
	}
	return record.WriteWhole(certFile, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o644)
}

// quietLog swallows what strangers' broken connections make the server say.
func quietLog() *log.Logger { return log.New(io.Discard, "", 0) }
