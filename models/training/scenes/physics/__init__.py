"""Bodies that weigh something: solved pairs moved by MuJoCo, as stills and as bouts."""
