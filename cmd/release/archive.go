package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"debug/elf"
	"fmt"
	"time"
)

// file is one file of an archive.
type file struct {
	name string // with slashes, below the archive's own directory
	mode uint32
	data []byte
}

// tarball packs files into one directory; all bear the same time and no owner, so that the bytes depend on the files only.
func tarball(dir string, when time.Time, files []file) ([]byte, error) {
	var buf bytes.Buffer
	packed := gzip.NewWriter(&buf)
	w := tar.NewWriter(packed)
	for _, f := range files {
		h := &tar.Header{Name: dir + "/" + f.name, Mode: int64(f.mode), Size: int64(len(f.data)), ModTime: when, Format: tar.FormatUSTAR}
		if err := w.WriteHeader(h); err != nil {
			return nil, err
		}
		if _, err := w.Write(f.data); err != nil {
			return nil, err
		}
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	if err := packed.Close(); err != nil {
		return nil, err
	}
	return buf.Bytes(), nil
}

// zipped is tarball for systems that open .zip.
func zipped(dir string, when time.Time, files []file) ([]byte, error) {
	var buf bytes.Buffer
	w := zip.NewWriter(&buf)
	for _, f := range files {
		to, err := w.CreateHeader(&zip.FileHeader{Name: dir + "/" + f.name, Method: zip.Deflate, Modified: when})
		if err != nil {
			return nil, err
		}
		if _, err := to.Write(f.data); err != nil {
			return nil, err
		}
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return buf.Bytes(), nil
}

// static is an error if a program asks for a loader or libraries of the system.
func static(path string) error {
	f, err := elf.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	for _, p := range f.Progs {
		if p.Type == elf.PT_INTERP || p.Type == elf.PT_DYNAMIC {
			return fmt.Errorf("the program is not static: it has a segment %v", p.Type)
		}
	}
	return nil
}
