"""The ground: frames, survey, trees and how they lie."""
