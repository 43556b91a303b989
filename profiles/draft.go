package profiles

import (
	"bytes"
	"fmt"

	"gopkg.in/yaml.v3"
)

// Renamed is the text of a recipe under another name, with its comments.
func Renamed(text []byte, name string) ([]byte, error) {
	return redrafted(text, func(root *yaml.Node) { setKey(root, "recipe", scalarNode(name)) })
}

// FromRoast is the text of a recipe that asks for what was roasted: the curve is
// the one that the bean probe went, and bean its temperature at the drop. All
// else, comments too, is as in the recipe of that roast. The error says why it
// would be no recipe.
func FromRoast(text []byte, name, note string, curve []CurvePoint, drop Celsius) ([]byte, error) {
	return redrafted(text, func(root *yaml.Node) {
		setKey(root, "recipe", scalarNode(name))
		setKey(root, "note", scalarNode(note))
		points := &yaml.Node{Kind: yaml.SequenceNode}
		for _, p := range curve {
			points.Content = append(points.Content, &yaml.Node{Kind: yaml.MappingNode, Style: yaml.FlowStyle, Content: []*yaml.Node{
				scalarNode("at"), scalarNode(p.AtS.String()), scalarNode("bean"), scalarNode(fmt.Sprintf("%.1f °C", float64(p.Bean)))}})
		}
		setKey(root, "bean_curve", points)
		// The curve finds the inlet air: what a stage said of it goes, and stages
		// that said nothing else.
		if stages := valueOf(root, "stages"); stages != nil {
			kept := stages.Content[:0]
			for _, s := range stages.Content {
				dropKey(s, "inlet")
				dropKey(s, "over")
				if len(s.Content) > 2 { // more than when
					kept = append(kept, s)
				}
			}
			if stages.Content = kept; len(kept) == 0 {
				dropKey(root, "stages")
			}
		}
		if d := valueOf(root, "drop"); d != nil {
			setKey(d, "bean", scalarNode(fmt.Sprintf("%.1f °C", float64(drop))))
		}
	})
}

func redrafted(text []byte, change func(root *yaml.Node)) ([]byte, error) {
	var doc yaml.Node
	if err := yaml.Unmarshal(text, &doc); err != nil {
		return nil, fmt.Errorf("the recipe it comes from cannot be read: %w", err)
	}
	if doc.Kind != yaml.DocumentNode || doc.Content[0].Kind != yaml.MappingNode {
		return nil, fmt.Errorf("the recipe it comes from is no recipe")
	}
	change(doc.Content[0])
	var b bytes.Buffer
	e := yaml.NewEncoder(&b)
	e.SetIndent(2)
	if err := e.Encode(&doc); err != nil {
		return nil, err
	}
	if _, err := ParseRecipe("draft", b.Bytes()); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

func scalarNode(text string) *yaml.Node {
	var n yaml.Node
	n.SetString(text)
	return &n
}

func valueOf(m *yaml.Node, key string) *yaml.Node {
	for i := 0; i+1 < len(m.Content); i += 2 {
		if m.Content[i].Value == key {
			return m.Content[i+1]
		}
	}
	return nil
}

// setKey puts a value in the place of that of a key, or adds the key.
func setKey(m *yaml.Node, key string, v *yaml.Node) {
	for i := 0; i+1 < len(m.Content); i += 2 {
		if m.Content[i].Value == key {
			v.LineComment, v.HeadComment, v.FootComment = m.Content[i+1].LineComment, m.Content[i+1].HeadComment, m.Content[i+1].FootComment
			m.Content[i+1] = v
			return
		}
	}
	m.Content = append(m.Content, scalarNode(key), v)
}

func dropKey(m *yaml.Node, key string) {
	for i := 0; i+1 < len(m.Content); i += 2 {
		if m.Content[i].Value == key {
			m.Content = append(m.Content[:i], m.Content[i+2:]...)
			return
		}
	}
}
