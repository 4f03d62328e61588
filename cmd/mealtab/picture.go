package main

import (
	"path/filepath"
	"strings"

	"mealtab/compiler/report/chart"
)

// pictureKind says what kind of picture the name of a file asks for.
func pictureKind(output string) (kind, error) {
	switch ext := strings.ToLower(filepath.Ext(output)); {
	case output == "":
		return kind{}, usagef("say with -o where to write the picture: a file that ends in .svg or .png")
	case ext == ".png":
		return kindPNG, nil
	case output == "-" || ext == ".svg":
		return kindSVG, nil
	}
	return kind{}, usagef("-o %s: a picture's name ends in .svg or .png", output)
}

// writePicture writes the kind of picture that the name of the file asks for; scale and dark are those of a PNG.
func (a *app) writePicture(output string, p *chart.Picture, scale float64, dark bool) (err error) {
	data := p.SVG()
	if strings.EqualFold(filepath.Ext(output), ".png") {
		if data, err = p.PNG(scale, dark); err != nil {
			return err
		}
	}
	return a.write(output, data)
}
