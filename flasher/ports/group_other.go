//go:build !unix

package ports

import "errors"

func groupOf(string) (string, error) { return "", errors.New("ports have no group here") }
